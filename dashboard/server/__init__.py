"""The local server: address, pairing of devices, who may open the dashboard."""
