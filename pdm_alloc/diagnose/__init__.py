"""Why units are not enough: shortfall and concessions, each answer applied, allocated and verified."""
