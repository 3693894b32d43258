"""One module for each sample session: what is true in it, and its log."""
