"""What pages, report and terminal share: numbers and answers in words, and drawings."""
