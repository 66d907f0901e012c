"""Line-ups to march, made by hand or at random."""
