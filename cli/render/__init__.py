"""Rendering: terminal tables, the page and its charts."""
