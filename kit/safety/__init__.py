"""What may hurt somebody: touch limits, and the cautions that a report shows."""
