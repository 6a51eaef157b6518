"""The demo unit: an invented airway unit, six months of its work, and tomorrow's list."""
