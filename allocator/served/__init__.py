"""The page for those who avoid terminals: served to this computer alone, with the search in a process of its own."""
