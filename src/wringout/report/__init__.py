"""The service report: one set of data, written as PDF and as HTML."""
