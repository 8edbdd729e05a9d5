"""How far, how deep, inside or outside: closest points, rays, winding, signed distance, deviation."""
