"""Instruments in, readings out: ports, frame parsers, the outbox and the wire.

Nothing in here knows what a cake is; everything that leaves is a `Reading` sent as SenML over MQTT.
"""
