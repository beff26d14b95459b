"""The second person's look: label and scan body are read again before anything that meets the implant is made."""
