"""Messages of scheduling systems: read and written, without the patient."""
