"""Scripts and styles of the desk's pages."""
