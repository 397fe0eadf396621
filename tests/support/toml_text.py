"""Values as TOML writes them."""


def told(value):
    """Return text, a table, a truth or a number as it stands behind a key."""
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {each}" for key, each in value.items()) + " }"
    return str(value).lower() if isinstance(value, bool) else str(value)
