#include <stdio.h>

#include "base/log.h"
#include "options.h"
#include "platform.h"
#include "run.h"
#include "setup.h"
#include "tell.h"

int main(int argc, char **argv)
{
    struct wp_agent_options options;
    struct wp_error error;
    wp_platform_outlive();
    wp_platform_thrift();
    if (wp_agent_options_read(argc, argv, &options, &error)) {
        (void)fprintf(stderr, "wavepost-agent: %s\nTry wavepost-agent --help\n", error.text);
        return 2;
    }
    if (options.help) {
        (void)fputs(wp_agent_help, stdout);
        return 0;
    }
    if (options.version) {
        (void)puts("wavepost-agent " WP_VERSION);
        return 0;
    }
    if (options.verbose)
        wp_log_set_level(WP_LOG_DEBUG);
    switch (options.verb) {
    case WP_VERB_JOIN:
    case WP_VERB_SET:
        return wp_agent_set_up(&options);
    case WP_VERB_RUN:
        return wp_agent_run(&options);
    case WP_VERB_STATUS:
        return wp_agent_status(&options);
    case WP_VERB_CHECK:
        return wp_agent_check(&options);
    default:
        return 2;
    }
}
