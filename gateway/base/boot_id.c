#include <stdio.h>
#include <string.h>

#include "base/clock.h"

void wp_clock_boot_id(char text[48])
{
    text[0] = '\0';
    FILE *file = fopen("/proc/sys/kernel/random/boot_id", "re");
    if (!file)
        return;
    if (!fgets(text, 41, file))
        text[0] = '\0';
    text[strcspn(text, "\r\n")] = '\0';
    (void)fclose(file);
}
