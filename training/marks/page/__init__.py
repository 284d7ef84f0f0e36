"""The page itself: plain HTML, CSS and JavaScript modules."""
