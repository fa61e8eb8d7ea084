"""A site from above, worked out once for pictures and for the page: shapes, places, routes, names, frame."""
