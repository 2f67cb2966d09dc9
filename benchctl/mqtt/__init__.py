"""The bench on an MQTT broker: out only. `topics` and `payloads` say what is told; nothing is ever taken from there."""
