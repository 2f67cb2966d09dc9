"""From the nouns of a site to the wire and back: read plans, decoding, encoding, the client, the chain."""
