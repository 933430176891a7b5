"""Everything that opens something: photographs, clips, tables, the network, the log, card files."""
