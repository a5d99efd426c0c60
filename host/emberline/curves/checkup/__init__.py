"""What some seconds of readings tell about sensors and their wiring, before anything burns."""
