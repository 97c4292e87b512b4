"""What the shop reads: order of work, material list, masses, inspection."""
