"""Receivers that run: a driver in a capture process of its own, and the handle this side of it.

library  the receiver library's C interface, loaded when asked for    soapy  a driver over it
practice_driver  the simulated receiver as a driver                    driver  what a driver offers
ring  shared memory between the two processes                          worker  the capture process
capture  the handle                                                    choose  names of receivers
"""
