"""Commands of the command line that have a module of their own; `cli` puts them on the menu."""
