"""Groups the frames on a camera card into sets and checks every set."""
