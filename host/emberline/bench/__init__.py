"""What a bench is: channels, calibration, thermocouples, air, fuels and the plan of a trial. Pure."""
