"""Tests of the app: what is said and understood, its pages, its doors, and whole calls in a browser."""
