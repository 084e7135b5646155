/* Prints the bench page for a state read from standard input; the argument is the query:
 * "done=1&section=22". For looking at the page without a gateway. */
#include <stdio.h>
#include <string.h>

#include "bench_page.h"

int main(int argc, char **argv)
{
    static char text[1024 * 1024];
    size_t size = fread(text, 1, sizeof text - 1, stdin);
    text[size] = '\0';
    cJSON *state = cJSON_Parse(text), *query = cJSON_CreateObject();
    char copy[256] = "";
    snprintf(copy, sizeof copy, "%s", argc > 1 ? argv[1] : "");
    for (char *part = strtok(copy, "&"); part; part = strtok(NULL, "&")) {
        char *equals = strchr(part, '=');
        if (equals)
            *equals++ = '\0';
        cJSON_AddStringToObject(query, part, equals ? equals : "1");
    }
    struct wp_ask ask = {.query = query};
    struct wp_bytes html;
    struct wp_error error = {0};
    wp_bytes_init(&html, 4 * 1024 * 1024);
    enum wp_status status = wp_bench_page(state, &ask, &html, &error);
    if (!status)
        fwrite(html.data, 1, html.size, stdout);
    else
        fprintf(stderr, "%s\n", error.text);
    wp_bytes_release(&html);
    cJSON_Delete(state);
    cJSON_Delete(query);
    return status ? 1 : 0;
}
