"""Guards worked trees in a small greenhouse: messages in, alarms and one morning report out."""

__version__ = "0.1.0"
