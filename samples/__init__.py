"""The demo clips that come with pawfall, each with its trial sheet and its exact truth; nothing here is code."""
