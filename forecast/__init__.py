"""The statistics of benchdays: from a builder's log and plan to finish dates."""
