"""Tags and filters that every template has."""
