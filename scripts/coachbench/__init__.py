"""What the coaching benchmark is made of: sections, pianists, baselines, and the rows."""
