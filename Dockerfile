# Web and workers are the same image; docker-compose.yml says how they differ.
# What changes seldom comes first: packages by their lock files, pose models, front-end files.
ARG PYTHON=python:3.11.14-slim-bookworm

# Parts that need development tools to be made; only what they make goes into the image.
FROM ${PYTHON} AS parts
RUN apt-get update \
    && apt-get install -y --no-install-recommends libegl1 libgles2 \
    && rm -rf /var/lib/apt/lists/*
WORKDIR /app
COPY requirements-dev.lock package.json package-lock.json .npmrc ./
COPY .ci/setup .ci/icons.py .ci/pack.py .ci/
COPY analysis/__init__.py analysis/build_models.py analysis/
ENV MODELS_DIR=/app/models
RUN bash .ci/setup

FROM ${PYTHON}
RUN apt-get update \
    && apt-get install -y --no-install-recommends libegl1 libgles2 \
    && rm -rf /var/lib/apt/lists/* \
    && useradd --system --uid 999 --no-create-home --shell /usr/sbin/nologin causeway \
    && mkdir /data && chown causeway /data
WORKDIR /app
# The lock is complete; resolving would bring a second package that writes the cv2 folder.
COPY requirements.lock ./
RUN python -m venv .venv \
    && .venv/bin/python -m pip install --no-cache-dir --disable-pip-version-check --no-deps \
        --require-hashes -r requirements.lock
COPY --from=parts /app/models models
COPY --from=parts /app/static/vendor static/vendor
COPY . .
RUN .venv/bin/python -m compileall -q analysis coaching
# The models go beside the code, because VAR_DIR is a volume.
ENV MODELS_DIR=/app/models PATH=/app/.venv/bin:$PATH PYTHONUNBUFFERED=1 VAR_DIR=/data
USER causeway
EXPOSE 8000
CMD ["gunicorn", "coaching.wsgi", "--bind", "0.0.0.0:8000", "--worker-class", "gthread", \
     "--workers", "4", "--threads", "32", "--no-control-socket"]
