"""The scan station: one field that takes any mark, and a table of the work that a scan may do."""
