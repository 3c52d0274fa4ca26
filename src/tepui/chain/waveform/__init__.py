"""The DVB-T waveform: transport packets in, complex samples out."""
