"""What a DVB-T signal is made of (EN 300 744): definitions the transmitter and the receiver share."""
