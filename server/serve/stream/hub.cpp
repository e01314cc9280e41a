#include "server/serve/stream/hub.hpp"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <optional>
#include <utility>
#include <vector>

#include <boost/asio/post.hpp>
#include <nlohmann/json.hpp>
#include <spdlog/spdlog.h>

#include "server/serve/encode/description.hpp"
#include "server/serve/encode/messages.hpp"
#include "server/serve/encode/tape_time.hpp"
#include "server/serve/random_key.hpp"

namespace turnstone {
namespace {

/// Each viewer is looked after four times a second, not all at once: a status to a thousand of them takes as long as a
/// block, and would hold up the next one.
constexpr std::chrono::milliseconds kClockPeriod{25};
constexpr std::size_t kClockParts = 10;
constexpr std::chrono::seconds kStatusEvery{1};
constexpr std::size_t kFirstServedStep = 7;
constexpr std::string_view kShuttingDown = "the server is shutting down";

} // namespace

Hub::Hub(boost::asio::io_context& context, const ServeSettings& settings, const ServeSources& sources, Workers& workers,
         Budgets& budgets, LiveRecording& live, ServeCounters& counters, OperatorRights rights)
    : context_(context), settings_(settings), sources_(sources), live_(live), budgets_(budgets), counters_(counters),
      rights_(std::move(rights)), replay_source_{.context = context,
                                                 .workers = workers,
                                                 .live = live,
                                                 .recordings = settings.recordings,
                                                 .is_operator = rights_.holds,
                                                 .server_id = random_key(),
                                                 .queue_bytes_max = settings.queue.soft_bytes},
      clock_(context) {}

void Hub::begin(LiveTape tape) {
    if (inbox_.put(std::move(tape))) tell_to_take();
}

void Hub::publish(std::shared_ptr<const Batch> batch) {
    if (batch->rows.empty() && batch->events.empty()) return;
    if (inbox_.put(std::move(batch))) tell_to_take();
}

void Hub::tell_to_take() {
    boost::asio::post(
        context_, [this] { take_inbox(); });
}

void Hub::take_inbox() {
    Inbox::Contents contents = inbox_.take();
    // What came while the last messages were going out goes out together: one write for each viewer.
    std::vector<LiveMessage> messages;
    for (Inbox::Item& item : contents.items)
        if (auto* tape = std::get_if<LiveTape>(&item)) {
            send_out(messages);
            take_tape(std::move(*tape));
        } else {
            take_batch(*std::get<std::shared_ptr<const Batch>>(item), messages);
        }
    send_out(messages);
    if (contents.overflow.batches > 0 && live_.tape()) take_overflow(contents.overflow);
}

void Hub::take_tape(LiveTape tape) {
    seq_ = 0;
    latest_ = std::move(tape.newest);
    latest_.resize(tape.schema->tables.size());
    newest_ = nullptr;
    recent_.clear();
    live_.begin(std::move(tape));
    for (Member& member : audience_) {
        if (member.replay) continue;
        member.viewer->forget_gap();
        send_hello(member);
    }
}

void Hub::take_batch(const Batch& batch, std::vector<LiveMessage>& messages) {
    if (!live_.tape()) {
        spdlog::error("a batch arrived before any recording was started; it is not shown");
        return;
    }
    const LiveTape& tape = *live_.tape();
    const auto add = [&](LiveMessage message, std::int64_t t_ns) {
        recent_.add(message, t_ns);
        messages.push_back(std::move(message));
    };
    for (const Event& event : batch.events) live_.see(event);
    for (const Event& event : batch.events)
        add(frame_message(Opcode::text, event_text(event, tape.t_start_ns)), event.t_found_ns);
    if (batch.rows.empty()) return;
    const std::int64_t t_ns = std::ranges::max(batch.rows, {}, &RowRecord::t_rx_ns).t_rx_ns;
    for (BlockMessage& block : encoder_.rows(batch, *tape.schema, tape.t_start_ns, seq_, {})) {
        ++seq_;
        ++counters_.blocks_made;
        add(std::move(block), t_ns);
    }
    remember_rows(batch);
}

void Hub::send_out(std::vector<LiveMessage>& messages) {
    if (messages.empty()) return;
    const std::size_t count = audience_.size();
    if (count > 0) first_served_ = (first_served_ + kFirstServedStep) % count;
    for (std::size_t i = 0; i < count; ++i) {
        const Member& member = audience_[(first_served_ + i) % count];
        if (!member.replay) member.viewer->send_live(messages);
    }
    messages.clear();
}

void Hub::remember_rows(const Batch& batch) {
    const Schema& schema = *live_.tape()->schema;
    std::int64_t newest_ns = live_.tape()->t_start_ns;
    for (const RowRecord& row : batch.rows) {
        auto& newest = latest_[row.table];
        if (newest && newest->first > row.t_ns) continue;
        const auto numbers = batch.numbers_of(row, schema.tables[row.table]);
        if (!newest) newest.emplace();
        newest->first = row.t_ns;
        newest->second.assign(numbers.begin(), numbers.end());
        newest_ns = std::max(newest_ns, row.t_ns);
    }
    live_.grow(newest_ns);
    newest_ = nullptr;
}

void Hub::take_overflow(const Inbox::Overflow& overflow) {
    counters_.batches_dropped += overflow.batches;
    live_.miss_events();
    spdlog::warn("the serve thread stalled: {} updates reach viewers through the recording only", overflow.batches);
    const std::int64_t t_start_ns = live_.tape()->t_start_ns;
    const Gap gap{.from_seq = seq_,
                  .to_seq = seq_ + overflow.batches - 1,
                  .from_t_s = tape_seconds(overflow.from_ns, t_start_ns),
                  .to_t_s = tape_seconds(overflow.to_ns, t_start_ns)};
    seq_ += overflow.batches;
    for (const Member& member : audience_)
        if (!member.replay) member.viewer->send_gap(gap);
}

WireMessage Hub::newest_rows() {
    if (!newest_) newest_ = encoder_.newest(latest_, live_.tape()->t_start_ns, seq_ == 0 ? 0 : seq_ - 1);
    return newest_;
}

/// As it is now: what the connection began with may be old.
Client Hub::asking(const Viewer& viewer) const {
    Client client = viewer.client();
    client.is_operator = rights_.holds(client);
    return client;
}

void Hub::tell_rights(Member& member) {
    const std::uint64_t revision = rights_.revision();
    if (member.rights_told == revision) return;
    member.rights_told = revision;
    const bool is_operator = rights_.holds(member.viewer->client());
    if (std::exchange(member.is_operator, is_operator) == is_operator) return;
    if (!is_operator) debrief_.end(member.viewer.get());
    member.viewer->send(frame_message(Opcode::text, session_text(is_operator)));
}

void Hub::send_hello(Member& member) {
    if (!live_.tape()) return; // it comes with the tape
    Viewer& viewer = *member.viewer;
    member.is_operator = rights_.holds(viewer.client());
    member.rights_told = rights_.revision();
    if (hello_revision_ != live_.revision()) hello_ = {};
    hello_revision_ = live_.revision();
    WireMessage& hello = hello_[member.is_operator ? 1 : 0];
    if (!hello) {
        const LiveTape& tape = *live_.tape();
        const HelloParts parts{
            .is_operator = member.is_operator, .replay = false, .server_id = replay_source_.server_id};
        hello = frame_message(Opcode::text, hello_text(parts,
                                                       description_json(live_.info(sources_.recorder().file_bytes),
                                                                        true, *tape.schema, describe(*tape.setup)),
                                                       latest_json(latest_, tape.t_start_ns)));
    }
    viewer.open_with(hello, recent_.messages());
}

void Hub::welcome(boost::asio::ip::tcp::socket socket, const Client& client, Lease place,
                  std::span<const std::byte> early) {
    ViewerHost& host = *this;
    const auto viewer =
        std::make_shared<Viewer>(std::move(socket), client, std::move(place), settings_.queue, counters_, host);
    ++counters_.viewers_accepted;
    audience_.push_back({.viewer = viewer, .replay = nullptr, .status_at = Viewer::Clock::now() + kStatusEvery});
    if (debrief_.leader() != nullptr) debrief_.tell_again();
    counters_.viewers = audience_.size();
    audience_.back().is_operator = rights_.holds(client);
    audience_.back().rights_told = rights_.revision();
    send_hello(audience_.back());
    if (stopping_) viewer->close(CloseCode::going_away, kShuttingDown);
    viewer->start(early);
}

Hub::Member* Hub::find(const Viewer& viewer) {
    const auto found = std::ranges::find(audience_, &viewer, [](const Member& member) { return member.viewer.get(); });
    return found == audience_.end() ? nullptr : &*found;
}

void Hub::left(Viewer& viewer) {
    // Later, because viewers may leave while this loops over the audience.
    boost::asio::post(context_, [this, gone = viewer.shared_from_this()] {
        Member* member = find(*gone);
        if (member == nullptr) return;
        debrief_.end(gone.get());
        std::swap(*member, audience_.back());
        audience_.pop_back();
        counters_.viewers = audience_.size();
    });
}

void Hub::request(Viewer& viewer, ClientMessage message) {
    Member* member = find(viewer);
    if (member == nullptr) return; // it has left
    if (std::holds_alternative<FollowLive>(message.what)) {
        if (member->replay) member->replay->stop();
        member->replay.reset();
        viewer.forget_gap();
        send_hello(*member);
    } else if (std::holds_alternative<AskTime>(message.what)) {
        if (live_.tape())
            viewer.send(frame_message(Opcode::text,
                                      time_text(sources_.station_now_ns(), live_.tape()->t_start_ns, message.request)));
    } else if (std::holds_alternative<OpenReplay>(message.what)) {
        open_replay(*member, std::move(message));
    } else if (const auto* leading = std::get_if<LeadDebrief>(&message.what)) {
        lead(*member, *leading, message.request);
    } else if (const auto* following = std::get_if<FollowDebrief>(&message.what)) {
        member->follows = following->follow;
        member->led_told = 0;
        if (debrief_.leader() != nullptr) debrief_.tell_again();
    } else if (member->replay) {
        member->replay->request(std::move(message));
    } else {
        viewer.send(frame_message(
            Opcode::text,
            error_text("this connection follows the live tape; send 'open' with a recording first", message.request)));
    }
}

void Hub::open_replay(Member& member, ClientMessage message) {
    Viewer& viewer = *member.viewer;
    if (!member.replay) {
        auto place = budgets_.take(Budget::replays, asking(viewer));
        if (!place) {
            viewer.send(frame_message(Opcode::text, error_text(place.error().message, message.request)));
            return;
        }
        member.replay = std::make_shared<Replay>(replay_source_, member.viewer, std::move(*place));
    }
    viewer.forget_gap();
    member.replay->request(std::move(message));
}

void Hub::lead(const Member& member, const LeadDebrief& lead, std::optional<std::int64_t> request) {
    Viewer& viewer = *member.viewer;
    const auto refuse = [&](std::string_view why) {
        viewer.send(frame_message(Opcode::text, error_text(why, request)));
    };
    if (!rights_.holds(viewer.client())) {
        refuse("only the operator leads a debrief; unlock with the key printed when the server started");
        return;
    }
    if (lead.end) {
        debrief_.end(&viewer);
        return;
    }
    std::string recording = live_.tape() ? live_.tape()->id : std::string();
    if (member.replay) recording = member.replay->recording();
    if (recording.empty()) {
        refuse("no recording is open; send 'open' with a recording's id");
        return;
    }
    debrief_.lead(&viewer, {.recording = std::move(recording),
                            .t_s = lead.t_s,
                            .playing = lead.playing,
                            .rate = lead.rate,
                            .by = lead.by});
}

void Hub::tell_followers() {
    if (!debrief_.due(LedDebrief::Clock::now())) return;
    for (Member& member : audience_) {
        if (!member.follows || member.led_told == debrief_.revision()) continue;
        // One that has much to read gets the next position: this one is old by then.
        if (member.viewer->queued_bytes() > settings_.queue.soft_bytes) {
            debrief_.tell_again();
            continue;
        }
        member.led_told = debrief_.revision();
        if (member.viewer.get() != debrief_.leader()) member.viewer->send(debrief_.message());
    }
}

void Hub::start() {
    run_clock();
}

void Hub::stop() {
    stopping_ = true;
    for (const Member& member : audience_) member.viewer->close(CloseCode::going_away, kShuttingDown);
}

void Hub::run_clock() {
    clock_.expires_after(kClockPeriod);
    clock_.async_wait([this](const boost::system::error_code& error) {
        if (error) return;
        look_after((audience_.size() + kClockParts - 1) / kClockParts);
        tell_followers();
        run_clock();
    });
}

void Hub::look_after(std::size_t count) {
    const auto now = Viewer::Clock::now();
    WireMessage status_now; // made when the first is due
    for (std::size_t i = 0; i < count; ++i) {
        looked_after_ = (looked_after_ + 1) % audience_.size();
        Member& member = audience_[looked_after_];
        member.viewer->tick(now);
        tell_rights(member);
        if (stopping_ || now < member.status_at) continue;
        member.status_at = now + kStatusEvery;
        if (!status_now) status_now = status();
        member.viewer->send_status(status_now);
    }
}

Audience Hub::audience() const {
    const auto now = Viewer::Clock::now();
    Audience out{.viewers = audience_.size(), .left_out = counters_.blocks_left_out};
    for (const Member& member : audience_) {
        out.operators += member.is_operator;
        out.replays += member.replay != nullptr;
        out.behind += member.viewer->behind();
        out.answer_s = std::fmax(out.answer_s, member.viewer->answer_s(now));
    }
    return out;
}

WireMessage Hub::status() const {
    const auto utc_ns =
        std::chrono::duration_cast<std::chrono::nanoseconds>(std::chrono::system_clock::now().time_since_epoch())
            .count();
    const auto& tape = live_.tape();
    return frame_message(Opcode::text,
                         status_text(sources_.links(), sources_.recorder(), audience(), sources_.station_now_ns(),
                                     utc_ns, tape ? std::optional(tape->t_start_ns) : std::nullopt));
}

} // namespace turnstone
