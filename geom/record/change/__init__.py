"""What the wall lost and got back between two surveys."""
