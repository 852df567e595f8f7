"""The guide to where the serial number sits on each form of instrument."""
