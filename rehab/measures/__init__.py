"""What is measured: dates and ages, acuity, refraction, pressure, fixation. Pure."""
