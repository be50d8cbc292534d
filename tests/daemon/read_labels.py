"""Says in JSON what the library zxing-cpp reads off each code of the page of labels on standard input."""

import json
import re
import sys

import zxingcpp

DOT = 4  # pixels a module
CODE = re.compile(r'<svg class="code" viewBox="0 0 (\d+) \1".*?d="([^"]*)"', re.DOTALL)
RUN = re.compile(r"M(\d+) (\d+)h(\d+)v1h-\3z")

said = []
for side, path in CODE.findall(sys.stdin.read()):
    width = int(side) * DOT
    picture = bytearray(b"\xff" * width * width)
    assert RUN.sub("", path) == "", "only runs of dark modules are drawn"
    for x, y, length in (map(int, run) for run in RUN.findall(path)):
        for row in range(y * DOT, (y + 1) * DOT):
            picture[row * width + x * DOT : row * width + (x + length) * DOT] = bytes(length * DOT)
    codes = zxingcpp.read_barcodes(memoryview(picture).cast("B", (width, width)))
    assert len(codes) == 1 and "QR" in str(codes[0].format), codes
    said.append({"text": codes[0].text, "correction": codes[0].ec_level})
json.dump(said, sys.stdout)
