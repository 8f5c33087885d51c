"""The job in the hand: pages for a phone, served from the van's or the office's own machine."""
