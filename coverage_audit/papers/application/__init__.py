"""The application record that the law asks for: its fields with their points of law; JSON, schema, CSV and page."""
