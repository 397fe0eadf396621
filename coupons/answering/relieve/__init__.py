"""Moving the faces of bodies by their answers, and measuring what came of it."""
