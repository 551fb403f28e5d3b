"""The application record that the law asks for: fields with their points of law, as JSON with its schema, CSV and page."""
