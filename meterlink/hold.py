"""The hold detector: when does the value of a touch stand?

A touch goes contact, settling, held, lift. The detector keeps the last stretch of readings
that agree with one constant value and holds when that stretch is long enough in readings and
in time, its spread is small, and its second half sits where its first half sat (so a value
that still creeps is not held). It never holds an overload, and needs a lift before it holds
again, or a slide to a clearly different value.
"""
