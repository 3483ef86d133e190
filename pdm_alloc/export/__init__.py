"""Documents, files and everything else that leaves the tool."""
