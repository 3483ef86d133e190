"""Studies: sizing, mounting, two modules, uncertainty, changes tried before they are made, room left."""
