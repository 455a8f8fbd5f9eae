"""The report: one content, shown as one HTML file and as one PDF."""
