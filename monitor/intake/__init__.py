"""From the broker to the guard's queue: stamps and queues what arrives, acknowledges what was committed.

It knows MQTT and nothing of sensors, readings or alarms.
"""
