/* What stands in a plane, joined where it touches, see survey/propagation/around/section.py. */

#include "around.h"

/* Room for so many items in an array that grows; `items` is the address of its pointer. False where memory runs out. */
bool make_room(void *items, int *room, int wanted, size_t size)
{
    if (wanted <= *room) return true;
    int more = *room ? *room : 64;
    while (more < wanted) more *= 2;
    void *array;
    memcpy(&array, items, sizeof array);
    array = realloc(array, (size_t)more * size);
    if (!array) return false;
    memcpy(items, &array, sizeof array);
    *room = more;
    return true;
}

/* The corner at a place: the first so near, other than one that is taken already; a new one where there is none. */
static int corner_at(Section *section, double x, double y, int taken)
{
    for (int node = 0; node < section->corner_count; node++) {
        double dx = section->corners[node].x - x, dy = section->corners[node].y - y;
        if (dx < JOINT_M && dx > -JOINT_M && node != taken && dx * dx + dy * dy < JOINT_M * JOINT_M) return node;
    }
    Corner fresh = {.x = x, .y = y, .outer = -1.0};
    section->corners[section->corner_count] = fresh;
    return section->corner_count++;
}

static bool add_arm(Section *section, Corner *corner, double dx, double dy, int segment)
{
    if (!make_room(&section->arms, &section->arm_room, section->arm_count + 1, sizeof *section->arms)) return false;
    Arm arm = {dx, dy, segment};
    section->arms[section->arm_count++] = arm;
    corner->arm_count++;
    return true;
}

bool join(Section *section)
{
    int count = section->count;
    section->corner_count = section->arm_count = 0;
    if (!make_room(&section->ends, &section->ends_room, count, sizeof *section->ends)) return false;
    if (!make_room(&section->corners, &section->corner_room, 2 * count, sizeof *section->corners)) return false;
    for (int number = 0; number < count; number++) {
        Segment *one = section->segments + number;
        int a = corner_at(section, one->x1, one->y1, -1), b = corner_at(section, one->x2, one->y2, a);
        section->ends[number][0] = a;
        section->ends[number][1] = b;
        one->x1 = section->corners[a].x;
        one->y1 = section->corners[a].y;
        one->x2 = section->corners[b].x;
        one->y2 = section->corners[b].y;
        double dx = one->x2 - one->x1, dy = one->y2 - one->y1, size = sqrt(dx * dx + dy * dy);
        one->size_m = size;
        one->dx = size < TOUCH_M ? 0.0 : dx / size;
        one->dy = size < TOUCH_M ? 0.0 : dy / size;
    }
    for (int node = 0; node < section->corner_count; node++) {
        Corner *corner = section->corners + node;
        corner->first_arm = section->arm_count;
        for (int number = 0; number < count; number++) {
            const Segment *one = section->segments + number;
            if (one->size_m < TOUCH_M) continue;
            if (node == section->ends[number][0]) {
                if (!add_arm(section, corner, one->dx, one->dy, number)) return false;
            } else if (node == section->ends[number][1]) {
                if (!add_arm(section, corner, -one->dx, -one->dy, number)) return false;
            } else {
                double off = (corner->y - one->y1) * one->dx - (corner->x - one->x1) * one->dy;
                if (!(fabs(off) < JOINT_M)) continue;
                double along = (corner->x - one->x1) * one->dx + (corner->y - one->y1) * one->dy;
                if (!(JOINT_M < along && along < one->size_m - JOINT_M)) continue;
                if (!add_arm(section, corner, one->dx, one->dy, number)) return false;
                if (!add_arm(section, corner, -one->dx, -one->dy, number)) return false;
            }
            corner->loss_db = larger(corner->loss_db, one->loss_db);
        }
    }
    for (int node = 0; node < section->corner_count; node++) {
        Corner *corner = section->corners + node;
        const Arm *arms = corner->arms = section->arms + corner->first_arm;
        for (int i = 0; i < corner->arm_count; i++)
            for (int j = 0; j < i; j++)
                if (arms[i].dx * arms[j].dx + arms[i].dy * arms[j].dy < -1.0 + 1e-5) corner->flat = true;
    }
    return true;
}

/* Loss of a leg, and in scratch->passed, past its count, the segments that it passes; gives how many, -1 without memory. */
int leg_losses(const Section *section, Scratch *scratch, place_t from, place_t to, int from_corner, int to_corner, double most_db,
               double *loss_db)
{
    double dx = to.x - from.x, dy = to.y - from.y, size = sqrt(dx * dx + dy * dy), total_db = 0.0;
    int passed = 0, grazed = 0;
    *loss_db = 0.0;
    if (size < TOUCH_M) return 0;
    dx /= size;
    dy /= size;
    if (!make_room(&scratch->passed, &scratch->passed_room, scratch->passed_count + section->count, sizeof *scratch->passed) ||
        !make_room(&scratch->grazed, &scratch->grazed_room, 2 * section->count, sizeof *scratch->grazed))
        return -1;
    for (int number = 0; number < section->count; number++) {
        const Segment *one = section->segments + number;
        double s1 = (one->y1 - from.y) * dx - (one->x1 - from.x) * dy, s2 = (one->y2 - from.y) * dx - (one->x2 - from.x) * dy;
        if ((s1 > TOUCH_M && s2 > TOUCH_M) || (s1 < -TOUCH_M && s2 < -TOUCH_M)) continue;
        int a = section->ends[number][0], b = section->ends[number][1];
        if (from_corner == a || from_corner == b || to_corner == a || to_corner == b) continue;
        bool on_1 = fabs(s1) <= TOUCH_M, on_2 = fabs(s2) <= TOUCH_M;
        if (on_1 && on_2) continue;
        if (on_1 || on_2) {
            double px = on_1 ? one->x1 : one->x2, py = on_1 ? one->y1 : one->y2, along = (px - from.x) * dx + (py - from.y) * dy;
            if (TOUCH_M < along && along < size - TOUCH_M) {
                Grazed item = {on_1 ? a : b, (on_1 ? s2 : s1) > 0 ? 1 : -1, one->loss_db};
                scratch->grazed[grazed++] = item;
            }
            continue;
        }
        double share = s1 / (s1 - s2);
        double along = (one->x1 + share * (one->x2 - one->x1) - from.x) * dx + (one->y1 + share * (one->y2 - one->y1) - from.y) * dy;
        if (TOUCH_M * 1e3 < along && along < size - TOUCH_M * 1e3) {
            total_db += one->loss_db;
            scratch->passed[scratch->passed_count + passed++] = number;
            if (total_db > most_db) {
                *loss_db = total_db;
                return passed;
            }
        }
    }
    for (int i = 0; i < grazed; i++) {
        double left = 0.0, right = 0.0;
        bool done = false;
        for (int j = 0; j < i; j++) done |= scratch->grazed[j].corner == scratch->grazed[i].corner;
        if (done) continue;
        for (int j = i; j < grazed; j++) {
            const Grazed *other = scratch->grazed + j;
            if (other->corner != scratch->grazed[i].corner) continue;
            if (other->side > 0) left = larger(left, other->loss_db);
            else right = larger(right, other->loss_db);
        }
        total_db += smaller(left, right);
    }
    *loss_db = total_db;
    return passed;
}
