"""Bodies as they are drawn: where they meet, and their faces moved by the answers."""
