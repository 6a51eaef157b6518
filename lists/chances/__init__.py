"""The chance of a plan: the same steps on many drawn days."""
