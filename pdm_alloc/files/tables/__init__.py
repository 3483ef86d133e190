"""The tables of vehicles and catalogues: a model for each row, rules between rows, reading and turning back."""
