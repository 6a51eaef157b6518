# One image; docker-compose.yml gives it the commands of web, worker and beat.
FROM python:3.11-slim-bookworm

RUN apt-get update \
 && apt-get install -y --no-install-recommends \
        libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0 fonts-dejavu-core \
 && rm -rf /var/lib/apt/lists/* \
 && useradd --system --home-dir /srv/lumenkeep --shell /usr/sbin/nologin lumenkeep \
 && install -d -o lumenkeep -g lumenkeep /var/lib/lumenkeep

ENV PYTHONDONTWRITEBYTECODE=1 \
    PYTHONUNBUFFERED=1 \
    DJANGO_SETTINGS_MODULE=config.settings.production \
    LUMENKEEP_DATA=/var/lib/lumenkeep \
    STATIC_ROOT=/srv/static

WORKDIR /srv/lumenkeep
COPY requirements.txt .
RUN pip install --no-cache-dir --require-hashes -r requirements.txt
COPY . .
# The values stand in for a site's own; collecting static files asks neither server.
RUN SECRET_KEY=only-to-collect-static-files ALLOWED_HOSTS=localhost \
    DATABASE_URL=postgres://nobody@localhost/none REDIS_URL=redis://localhost/0 TRAIL_KEY_FILE=/run/secrets/trail_key \
    LIST_KEY_FILE=/run/secrets/list_key \
    python manage.py collectstatic --no-input

USER lumenkeep
VOLUME /var/lib/lumenkeep
EXPOSE 8000
