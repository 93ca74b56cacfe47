"""What is found out about a picture before it is printed. Read ``study`` first.

``small_picture`` answers most of it; ``metering`` finds end points and zones,
``sharpness`` (by ``noise_and_edges``) what sharpening needs, ``skin`` where skin is.
"""
