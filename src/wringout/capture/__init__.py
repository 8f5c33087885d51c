"""Live points: read-only BACnet/IP and Modbus TCP, recorded as a trend; simulated devices to try it on."""
