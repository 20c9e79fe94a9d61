"""``python -m footwork``."""

from footwork.cli import main

if __name__ == "__main__":
    main()
