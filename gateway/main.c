/* wavepostd - the gateway: command line, settings, run. */
#include <getopt.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/stat.h>

#include "base/log.h"
#include "base/memory.h"
#include "gateway.h"
#include "web/route.h"

#define USAGE                                                                                      \
    "usage: wavepostd --data DIR --listen HOST:PORT [--plain] [--config FILE] [--debug]\n"         \
    "       wavepostd --routes | --settings | --version | --help\n"                                \
    "\n"                                                                                           \
    "  --data DIR         the folder that holds everything; made if missing\n"                     \
    "  --listen HOST:PORT where to listen; port 0 takes a free one\n"                              \
    "  --plain            plain HTTP instead of TLS, on this machine alone\n"                      \
    "  --config FILE      the configuration file\n"                                                \
    "  --debug            log more\n"                                                              \
    "  --routes           print what is answered over HTTP, and to whom\n"                         \
    "  --settings         print a configuration file with every key at its default\n"

enum choice {
    OPT_DATA = 1,
    OPT_LISTEN,
    OPT_PLAIN,
    OPT_CONFIG,
    OPT_DEBUG,
    OPT_ROUTES,
    OPT_SETTINGS,
    OPT_VERSION,
    OPT_HELP
};

static const struct option options[] = {
    {"data", required_argument, NULL, OPT_DATA},   {"listen", required_argument, NULL, OPT_LISTEN},
    {"plain", no_argument, NULL, OPT_PLAIN},       {"config", required_argument, NULL, OPT_CONFIG},
    {"debug", no_argument, NULL, OPT_DEBUG},       {"routes", no_argument, NULL, OPT_ROUTES},
    {"settings", no_argument, NULL, OPT_SETTINGS}, {"version", no_argument, NULL, OPT_VERSION},
    {"help", no_argument, NULL, OPT_HELP},         {NULL, 0, NULL, 0}};

/* What only prints and ends. */
static void answer(int choice)
{
    if (choice == OPT_ROUTES)
        wp_routes_print(wp_routes, wp_route_count, stdout);
    else if (choice == OPT_SETTINGS)
        wp_settings_describe(stdout);
    else
        printf("%s", choice == OPT_VERSION ? "wavepostd " WP_VERSION "\n" : USAGE);
    exit(fflush(stdout) == 0 ? 0 : 1);
}

static int misuse(void)
{
    fputs(USAGE, stderr);
    return 2;
}

static bool parse(int argc, char **argv, struct wp_command_line *line)
{
    int choice = 0;
    while ((choice = getopt_long(argc, argv, "", options, NULL)) != -1) {
        switch (choice) {
        case OPT_DATA:
            line->data = optarg;
            break;
        case OPT_LISTEN:
            line->listen = optarg;
            break;
        case OPT_PLAIN:
            line->plain = true;
            break;
        case OPT_CONFIG:
            line->config = optarg;
            break;
        case OPT_DEBUG:
            wp_log_set_level(WP_LOG_DEBUG);
            break;
        case '?':
            return false;
        default:
            answer(choice);
        }
    }
    return optind == argc && line->data && line->listen;
}

int main(int argc, char **argv)
{
    struct wp_command_line line = {0};
    if (!parse(argc, argv, &line))
        return misuse();
    wp_memory_keep();
    (void)umask(0077); /* whoever made the folder: what is in it is for our own user alone */
    struct wp_settings settings;
    struct wp_error error = {0};
    enum wp_status status = wp_settings_read(&line, &settings, &error);
    if (!status)
        status = wp_gateway_run(&settings, &error);
    wp_settings_release(&settings);
    if (status)
        fprintf(stderr, "wavepostd: %s\n", error.text[0] ? error.text : wp_status_name(status));
    return status ? 1 : 0;
}
