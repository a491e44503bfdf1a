"""One file for every change of the tables, never altered once it is released."""
