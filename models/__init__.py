"""The networks that come with pawfall, each with its card; nothing here is code."""
