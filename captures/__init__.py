"""What is written down: captures, job logs, seals, export, report, replay."""
