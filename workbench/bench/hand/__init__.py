"""What keys do to the ski in hand, and the state they leave."""
