"""What more than one test module needs. Test modules import from here, never from one another."""
