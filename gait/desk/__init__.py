"""The desk: the local web app over one caseload. Pages and their scripts; what they show is made elsewhere in gait."""
