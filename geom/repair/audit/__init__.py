"""What the openings, the bottom and the melting rate have to say."""
