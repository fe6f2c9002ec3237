"""The pages, one screen each; the router in main.py draws them."""
