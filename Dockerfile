# Web and worker are the same image; docker-compose.yml says how they differ.
FROM python:3.11-slim
RUN apt-get update \
    && apt-get install -y --no-install-recommends libegl1 libgles2 \
    && rm -rf /var/lib/apt/lists/*
WORKDIR /app
COPY . .
# The models go beside the code, because VAR_DIR is a volume.
ENV MODELS_DIR=/app/models PATH=/app/.venv/bin:$PATH PYTHONUNBUFFERED=1
RUN bash .ci/setup && rm -rf ~/.cache ~/.npm
RUN useradd --system causeway && mkdir /data && chown causeway /data
USER causeway
ENV VAR_DIR=/data
EXPOSE 8000
CMD ["gunicorn", "coaching.wsgi", "--bind", "0.0.0.0:8000", "--worker-class", "gthread", \
     "--workers", "2", "--threads", "64", "--no-control-socket"]
