#!/bin/sh
# Starts surge @VERSION@. The first time it is installed from the folder "wheels", without internet.
# Without words: the page in the browser. With words: surge.sh check case.toml
set -u
here=$(CDPATH= cd -- "$(dirname -- "$0")" && pwd)
environment="$here/environment"

if [ ! -e "$environment/installed-@VERSION@.txt" ]; then
    python=""
    for tried in python@PYTHON@ python3; do
        if "$tried" -c "import struct, sys; sys.exit(sys.version_info[:2] != (@MAJOR@) or struct.calcsize('P') != 8)" 2> /dev/null; then
            python=$tried
            break
        fi
    done
    if [ -z "$python" ]; then
        echo "Python @PYTHON@ (64 bit) is not there: install it with the package manager of this system." >&2
        exit 1
    fi
    echo "Installing surge, once; it takes a minute or two ..." >&2
    if ! "$python" -m venv --clear "$environment"; then
        echo "The folder environment cannot be made here: copy the whole folder to where you may write." >&2
        exit 1
    fi
    if ! "$environment/bin/python" -m pip --isolated install --quiet --disable-pip-version-check \
        --no-index --find-links "$here/wheels" "@NAME@"; then
        echo "The installation failed, see above. Copy the whole folder once more, and try again." >&2
        exit 1
    fi
    echo "surge @VERSION@" > "$environment/installed-@VERSION@.txt"
fi

[ $# -gt 0 ] || set -- page
exec "$environment/bin/python" -m surge "$@"
