"""Results as words, documents, charts and pages."""
