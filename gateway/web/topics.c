#include <string.h>

#include "web/events.h"

#define STAFF                                                                                      \
    (WP_ROLE_DEMONSTRATOR | WP_ROLE_INSTRUCTOR | WP_ROLE_TECHNICIAN | WP_ROLE_ADMINISTRATOR |      \
     WP_ROLE_COMMAND)

const struct wp_topic wp_topics[] = {
    {"section", STAFF, WP_SCOPE_SECTION, "spectra of one section, for its grid"},
    {"instrument", STAFF | WP_ROLE_BENCH, WP_SCOPE_INSTRUMENT, "turns and spectra at one bench"},
    {"person", STAFF | WP_ROLE_STUDENT, WP_SCOPE_PERSON, "what is new in one's inbox"},
    {"fleet", STAFF, WP_SCOPE_ANY, "agents and printers"},
    {"staff", STAFF, WP_SCOPE_ANY, "notices"},
};
const size_t wp_topic_count = sizeof wp_topics / sizeof wp_topics[0];

const struct wp_topic *wp_topic_find(const char *topic, const char **id)
{
    size_t length = strcspn(topic, ":");
    *id = topic[length] ? topic + length + 1 : NULL;
    for (size_t i = 0; i < wp_topic_count; i++) {
        const struct wp_topic *row = &wp_topics[i];
        if (strlen(row->name) != length || strncmp(row->name, topic, length) != 0)
            continue;
        bool wants_id = row->scope != WP_SCOPE_ANY;
        bool digits = *id && **id && strspn(*id, "0123456789") == strlen(*id);
        return (wants_id ? digits : *id == NULL) ? row : NULL;
    }
    return NULL;
}
