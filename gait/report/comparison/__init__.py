"""A comparison as one page and one PDF: the content is built once, of plain nouns, and rendered twice."""
