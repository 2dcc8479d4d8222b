"""The yardstick of a whole daemon: a program that loads FastAPI, serves one route, and wakes so often to do nothing.

    python tests/bench/bare.py TCP_PORT PERIOD_S

Its route answers with the time [s since boot] of its first line, which is all that a program can do sooner than to load anything.
"""

from __future__ import annotations

import time

FIRST_S = time.clock_gettime(time.CLOCK_BOOTTIME)


def main() -> None:
    import sys  # here, as all else that is imported: the time comes first
    import threading

    import uvicorn
    from fastapi import FastAPI

    tcp_port, period_s = int(sys.argv[1]), float(sys.argv[2])

    def wake() -> None:
        while True:
            time.sleep(period_s)

    threading.Thread(target=wake, daemon=True).start()
    app = FastAPI(openapi_url=None)

    @app.get("/api/1/points")
    async def points() -> dict[str, float]:
        return {"first_s": FIRST_S}

    uvicorn.run(app, host="127.0.0.1", port=tcp_port, log_level="warning", loop="asyncio", http="h11", ws="none")


if __name__ == "__main__":
    main()
