#include "server/serve/stream/replay.hpp"

#include <algorithm>

#include <boost/asio/post.hpp>
#include <nlohmann/json.hpp>

#include "server/record/read/catalogue.hpp"
#include "shared/time.hpp"

namespace turnstone {
namespace {

using Clock = std::chrono::steady_clock;

constexpr std::chrono::milliseconds kTick{50};
constexpr unsigned kTicksPerPosition = 2;  // 10 position texts a second
constexpr std::size_t kRowsPerTick = 8192; // bounds one message; a faster tape simply plays slower
constexpr std::size_t kWaitingMax = 64;
constexpr double kStallMax_s = 0.25; // after a stall the cursor goes on where it was, it does not leap

/// The table whose rows come most often: what "next row" means to a person.
std::optional<TableId> fastest_table(const Schema& schema) {
    const Table* best = nullptr;
    for (const Table& table : schema.tables) {
        if (table.kind != TableKind::packet && table.kind != TableKind::batch) continue;
        if (table.period_s > 0 && (best == nullptr || table.period_s < best->period_s)) best = &table;
    }
    return best == nullptr ? std::nullopt : std::optional(best->id);
}

/// Time of the nearest row of `table` (any when empty) after (`direction` > 0) or before the cursor within the tape.
/// Looks in windows that grow from a few periods to the whole tape, so that it is quick where rows are dense.
std::optional<std::int64_t> neighbour(RecordingReader& reader, std::optional<TableId> table, double period_s,
                                      int direction, std::int64_t cursor_ns, std::int64_t first_ns,
                                      std::int64_t last_ns) {
    const double least_s = std::max(4 * period_s, 0.02);
    for (std::int64_t window_ns = seconds_to_ns(least_s);; window_ns *= 8) {
        const std::int64_t from = direction > 0 ? cursor_ns + 1 : std::max(first_ns, cursor_ns - window_ns);
        const std::int64_t to = direction > 0 ? std::min(last_ns + 1, cursor_ns + window_ns) : cursor_ns;
        std::optional<std::int64_t> found;
        for (std::int64_t at = from; at < to;) {
            Batch batch;
            const std::int64_t complete = reader.rows(at, to, kRowsPerTick, batch);
            for (const RowRecord& row : batch.rows) {
                if (table && row.table != *table) continue;
                if (direction > 0)
                    found = std::min(found.value_or(row.t_ns), row.t_ns);
                else
                    found = std::max(found.value_or(row.t_ns), row.t_ns);
            }
            if ((direction > 0 && found) || complete <= at) break;
            at = complete;
        }
        if (found) return found;
        if (direction > 0 ? to > last_ns : from <= first_ns) return std::nullopt;
    }
}

} // namespace

Replay::Replay(Hub& hub, std::weak_ptr<Viewer> viewer) : hub_(hub), viewer_(std::move(viewer)), timer_(hub.context()) {}

void Replay::request(ClientMessage message) {
    const bool is_seek = std::holds_alternative<SeekReplay>(message.what);
    if (is_seek && !waiting_.empty() && std::holds_alternative<SeekReplay>(waiting_.back().what)) {
        waiting_.back() = std::move(message);
        return;
    }
    if (waiting_.size() >= kWaitingMax) {
        complain("too many requests wait already; send the next after an answer", message.request);
        return;
    }
    waiting_.push_back(std::move(message));
    next();
}

void Replay::next() {
    while (!busy_ && !waiting_.empty()) {
        const ClientMessage message = std::move(waiting_.front());
        waiting_.pop_front();
        run(message);
    }
}

void Replay::run(const ClientMessage& message) {
    if (const auto* what = std::get_if<OpenReplay>(&message.what)) {
        open(what->recording, message.request);
        return;
    }
    if (!opened_) {
        complain("no recording is open; send 'open' with a recording's id", message.request);
        return;
    }
    if (const auto* what = std::get_if<SeekReplay>(&message.what)) {
        seek(what->t_s, message.request);
    } else if (const auto* stepped = std::get_if<StepReplay>(&message.what)) {
        playing_ = false;
        step(stepped->rows, message.request);
    } else if (const auto* played = std::get_if<PlayReplay>(&message.what)) {
        rate_ = played->rate;
        if (!playing_) {
            playing_ = true;
            played_at_ = Clock::now();
            wait_for_tick();
        }
        tell(message.request, {});
    } else {
        playing_ = false;
        tell(message.request, {});
    }
}

void Replay::read(Work work, std::function<void(Outcome)> then) {
    busy_ = true;
    auto finish = [self = shared_from_this(), then = std::move(then)](Outcome outcome) {
        self->busy_ = false;
        const auto viewer = self->viewer_.lock();
        if (!viewer || !viewer->watches(*self)) return; // gone, or back at the live tape
        if (!outcome.damage.empty() && outcome.damage != self->damage_told_) {
            self->damage_told_ = outcome.damage;
            self->complain("the recording is damaged (" + outcome.damage + "); what can be read is shown",
                           std::nullopt);
        }
        then(std::move(outcome));
        self->next();
    };
    auto job = [&context = hub_.context(), path = path_, work = std::move(work), finish](ReaderCache& cache) {
        Outcome outcome;
        try {
            if (auto reader = cache.get(path)) {
                outcome = work(**reader);
                outcome.damage = (*reader)->damage();
            } else {
                outcome.error = reader.error().message;
            }
        } catch (const std::exception& failure) {
            outcome.error = failure.what();
        }
        boost::asio::post(context, [finish, outcome = std::move(outcome)]() mutable { finish(std::move(outcome)); });
    };
    if (!hub_.workers().submit(std::move(job))) {
        Outcome busy;
        busy.error = "the server is busy reading for others; try again in a moment";
        boost::asio::post(hub_.context(), [finish, busy]() mutable { finish(std::move(busy)); });
    }
}

void Replay::open(const std::string& id, std::optional<std::int64_t> request) {
    playing_ = false;
    opened_ = false;
    const bool live = hub_.tape() && (id == "live" || id == hub_.tape()->id);
    const auto path = recording_path(hub_.settings().recordings, live ? hub_.tape()->id : id);
    if (!path) {
        complain(path.error().message, request);
        return;
    }
    path_ = *path;
    damage_told_.clear();
    const auto viewer = viewer_.lock();
    const HelloParts parts{viewer && viewer->is_operator(), true, hub_.server_id()};
    read(
        [parts, live](RecordingReader& reader) {
            Outcome outcome;
            const auto setup = reader.setup();
            if (!setup) {
                outcome.error = setup.error().message;
                return outcome;
            }
            const RecordingInfo info = reader.info();
            outcome.t_start_ns = outcome.cursor_ns = info.t_start_ns;
            outcome.t_end_ns = info.t_end_ns;
            const auto latest = latest_json(reader.latest(info.t_start_ns), info.t_start_ns);
            outcome.messages.push_back(frame_message(
                Opcode::text, hello_text(parts, description_json(info, live, reader.schema(), *setup), latest)));
            outcome.latest = dump(latest);
            return outcome;
        },
        [this, request](Outcome outcome) {
            if (!outcome.error.empty()) {
                complain(outcome.error, request);
                return;
            }
            opened_ = true;
            t_start_ns_ = cursor_ns_ = outcome.t_start_ns;
            t_end_ns_ = std::max(outcome.t_end_ns, outcome.t_start_ns);
            seq_ = 0;
            if (const auto receiver = viewer_.lock())
                for (WireMessage& message : outcome.messages) receiver->send(std::move(message));
            tell(request, outcome.latest);
        });
}

void Replay::seek(double t_s, std::optional<std::int64_t> request) {
    const double end_s = tape_seconds(t_end_ns_, t_start_ns_);
    const std::int64_t cursor_ns = std::min(t_end_ns_, tape_ns(std::clamp(t_s, 0.0, end_s), t_start_ns_));
    read(
        [cursor_ns, t_start_ns = t_start_ns_](RecordingReader& reader) {
            Outcome outcome;
            outcome.cursor_ns = cursor_ns;
            outcome.latest = dump(latest_json(reader.latest(cursor_ns), t_start_ns));
            return outcome;
        },
        [this, request](Outcome outcome) {
            if (!outcome.error.empty()) {
                complain(outcome.error, request);
                return;
            }
            cursor_ns_ = outcome.cursor_ns;
            played_at_ = Clock::now();
            tell(request, outcome.latest);
        });
}

void Replay::step(int rows, std::optional<std::int64_t> request) {
    read(
        [rows, cursor_ns = cursor_ns_, t_start_ns = t_start_ns_, t_end_ns = t_end_ns_](RecordingReader& reader) {
            const auto table = fastest_table(reader.schema());
            const double period_s = table ? reader.schema().tables[*table].period_s : 0.0;
            Outcome outcome;
            outcome.cursor_ns = neighbour(reader, table, period_s, rows, cursor_ns, t_start_ns, t_end_ns)
                                    .value_or(rows > 0 ? t_end_ns : t_start_ns);
            outcome.latest = dump(latest_json(reader.latest(outcome.cursor_ns), t_start_ns));
            return outcome;
        },
        [this, request](Outcome outcome) {
            if (!outcome.error.empty()) {
                complain(outcome.error, request);
                return;
            }
            cursor_ns_ = outcome.cursor_ns;
            tell(request, outcome.latest);
        });
}

void Replay::wait_for_tick() {
    timer_.expires_after(kTick);
    timer_.async_wait([weak = weak_from_this()](const boost::system::error_code& error) {
        const auto self = weak.lock();
        if (error || !self || !self->playing_ || self->viewer_.expired()) return;
        self->wait_for_tick();
        self->play_on();
    });
}

void Replay::play_on() {
    const auto viewer = viewer_.lock();
    const auto now = Clock::now();
    // A viewer that does not keep up makes its own tape play slower; nothing is left out.
    if (busy_ || !viewer || viewer->queued_bytes() > hub_.settings().queue_soft_bytes) {
        if (!busy_) played_at_ = now;
        return;
    }
    const double elapsed_s = std::min(std::chrono::duration<double>(now - played_at_).count(), kStallMax_s);
    played_at_ = now;
    const std::int64_t target_ns = std::min(t_end_ns_, tape_ns(elapsed_s * rate_, cursor_ns_));
    read(
        [from_ns = cursor_ns_ + 1, target_ns, t_start_ns = t_start_ns_, t_end_ns = t_end_ns_,
         seq = seq_](RecordingReader& reader) {
            Outcome outcome;
            Batch batch;
            const std::int64_t complete_ns = reader.rows(from_ns, target_ns + 1, kRowsPerTick, batch);
            outcome.cursor_ns = std::max(from_ns - 1, complete_ns - 1);
            outcome.t_end_ns = outcome.cursor_ns >= t_end_ns ? reader.info().t_end_ns : t_end_ns;
            for (const Event& event : reader.events(from_ns, outcome.cursor_ns + 1))
                outcome.messages.push_back(frame_message(Opcode::text, event_text(event, t_start_ns)));
            BlockEncoder encoder;
            if (auto block =
                    encoder.rows(batch, reader.schema(), t_start_ns, seq, {.replay = true, .coalesced = false});
                block.wire) {
                outcome.messages.push_back(std::move(block.wire));
                outcome.blocks = 1;
            }
            return outcome;
        },
        [this](Outcome outcome) {
            if (!outcome.error.empty()) {
                playing_ = false;
                complain(outcome.error, std::nullopt);
                tell(std::nullopt, {});
                return;
            }
            cursor_ns_ = outcome.cursor_ns;
            t_end_ns_ = std::max(outcome.t_end_ns, t_end_ns_);
            seq_ += outcome.blocks;
            if (const auto receiver = viewer_.lock())
                for (WireMessage& message : outcome.messages) receiver->send(std::move(message));
            const bool ended = cursor_ns_ >= t_end_ns_;
            if (ended) playing_ = false;
            if (ended || ++ticks_ % kTicksPerPosition == 0) tell(std::nullopt, {});
        });
}

void Replay::tell(std::optional<std::int64_t> request, const std::string& latest) {
    const auto viewer = viewer_.lock();
    if (!viewer) return;
    const ReplayPosition position{tape_seconds(cursor_ns_, t_start_ns_), playing_, rate_,
                                  tape_seconds(t_end_ns_, t_start_ns_)};
    if (latest.empty()) {
        viewer->send(frame_message(Opcode::text, replay_text(position, request, nullptr)));
        return;
    }
    const auto rows = nlohmann::json::parse(latest);
    viewer->send(frame_message(Opcode::text, replay_text(position, request, &rows)));
}

void Replay::complain(std::string_view message, std::optional<std::int64_t> request) {
    if (const auto viewer = viewer_.lock()) viewer->send(frame_message(Opcode::text, error_text(message, request)));
}

} // namespace turnstone
