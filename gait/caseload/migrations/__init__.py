"""The steps by which the tables of a caseload came to be what they are."""
