"""A station as registers of Modbus TCP, to be read only.

Source: MODBUS Application Protocol Specification V1.1b3 (functions 3 and 4, exception codes); values of several registers come with the
most significant register first, each register with its most significant octet first; a float is one of IEEE 754, single precision.
"""
