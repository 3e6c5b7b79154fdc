"""Reads lines from a serial port and inserts each into PostgreSQL: peer.py PORT CONNECTION COUNT.

What many shops have today: one commit a line, the line acknowledged after it.
"""
import sys

import psycopg2
import serial

port = serial.Serial(sys.argv[1], 115200)
db = psycopg2.connect(sys.argv[2])
rows = db.cursor()
print("ready", flush=True)
for _ in range(int(sys.argv[3])):
    line = port.readline()
    count, torque, unit, angle = line.decode().lstrip("#").split(";")[:4]
    rows.execute(
        "INSERT INTO bench.line (count, torque, unit, angle, raw) VALUES (%s, %s, %s, %s, %s)",
        (count, torque, unit, angle or None, line),
    )
    db.commit()
    port.write(b"=%s\r\n" % count.encode())
