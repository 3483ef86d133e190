"""What the panel shows, as HTML with small hand-made pictures: functions from results to text."""
