"""The morning list of a caseload and the pages of its dogs."""
