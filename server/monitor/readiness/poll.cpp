#include "server/monitor/readiness/poll.hpp"

#include <algorithm>

#include "server/pipeline/events.hpp"

namespace turnstone {

Poll::Poll(const PipelineSetup& setup) {
    for (const VehicleSetup& vehicle : setup.vehicles) {
        if (!vehicle.readiness) continue;
        for (const Position& position : vehicle.readiness->positions)
            if (find(position.id) == nullptr) positions_.push_back({.position = position});
    }
}

Poll::At* Poll::find(std::string_view id) {
    const auto found = std::ranges::find_if(positions_, [&](const At& each) { return each.position.id == id; });
    return found == positions_.end() ? nullptr : &*found;
}

void Poll::take(const PollQuestion& question, std::int64_t t_ns, Batch& out) {
    At* const at = find(question.position);
    if (at == nullptr) return;
    *at = {.position = at->position, .says = Says::asked, .t_ns = t_ns};
    out.events.push_back(make_event({.id = EventId::poll_asked,
                                     .t_ns = t_ns,
                                     .about = at->position.id,
                                     .values = {{"position", at->position.id}, {"title", at->position.title}}},
                                    t_ns));
}

void Poll::take(const PollAnswer& answer, std::int64_t t_ns, Batch& out) {
    At* const at = find(answer.position);
    if (at == nullptr) return;
    *at = {.position = at->position,
           .says = answer.go ? Says::go : Says::no_go,
           .t_ns = answer.t_ns.value_or(t_ns),
           .by = answer.by,
           .note = answer.note};
    out.events.push_back(make_event({.id = EventId::poll_answered,
                                     .t_ns = t_ns,
                                     .about = at->position.id,
                                     .values = {{"position", at->position.id},
                                                {"title", at->position.title},
                                                {"go", answer.go},
                                                {"by", answer.by},
                                                {"note", answer.note}}},
                                    t_ns));
}

void Poll::forget(const std::vector<Position>& positions) {
    for (const Position& position : positions)
        if (At* const at = find(position.id); at != nullptr) *at = {.position = at->position};
}

std::vector<std::string> Poll::reasons(const std::vector<Position>& positions) const {
    std::vector<std::string> out;
    for (const At& at : positions_) {
        if (std::ranges::find(positions, at.position.id, &Position::id) == positions.end()) continue;
        switch (at.says) {
        case Says::go: break;
        case Says::nothing: out.push_back(at.position.title + ": not asked"); break;
        case Says::asked: out.push_back(at.position.title + ": has not answered"); break;
        case Says::no_go: out.push_back(at.position.title + ": no-go" + (at.note.empty() ? "" : ", " + at.note)); break;
        }
    }
    return out;
}

void Poll::carry(std::vector<Action>& out) const {
    for (const At& at : positions_) {
        if (at.says == Says::asked) out.emplace_back(PollQuestion{at.position.id});
        if (at.says == Says::go || at.says == Says::no_go)
            out.emplace_back(PollAnswer{
                .position = at.position.id, .go = at.says == Says::go, .by = at.by, .note = at.note, .t_ns = at.t_ns});
    }
}

} // namespace turnstone
