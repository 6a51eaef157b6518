"""The validation report: every formula of the product against values that were published elsewhere."""
