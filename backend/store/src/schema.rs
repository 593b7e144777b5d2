//! The tables as diesel knows them; the migrations are what makes them.

diesel::table! {
    server_state (name) {
        name -> Text,
        value -> Text,
    }
}

diesel::table! {
    house_seal (name) {
        name -> Text,
        seal_key -> Text,
    }
}

diesel::table! {
    idempotency (caller, act_key) {
        caller -> Text,
        act_key -> Text,
        fingerprint -> Text,
        result -> Nullable<Text>,
        made_at -> Timestamp,
        refusal -> Nullable<Text>,
    }
}

diesel::table! {
    set_up_tokens (token_hash) {
        token_hash -> Text,
        made_at -> Timestamp,
        used_at -> Nullable<Timestamp>,
    }
}

diesel::table! {
    networks (id) {
        id -> Text,
        name -> Text,
        made_at -> Timestamp,
        newest_statement -> BigInt,
    }
}

diesel::table! {
    signing_keys (id) {
        id -> Text,
        network -> Text,
        farm -> Text,
        public_key -> Text,
        made_second -> BigInt,
        known_second -> BigInt,
        withdrawn_second -> Nullable<BigInt>,
        introduction -> Text,
        vouched -> Nullable<Text>,
        position -> BigInt,
    }
}

diesel::table! {
    statements (farm, id) {
        farm -> Text,
        id -> Text,
        network -> Text,
        lot -> Text,
        compact -> Text,
        taken_second -> BigInt,
        position -> BigInt,
    }
}

diesel::table! {
    farms (id) {
        id -> Text,
        network -> Text,
        name -> Text,
        house_device -> Text,
        newest_position -> BigInt,
        joined_at -> Timestamp,
    }
}

diesel::table! {
    people (id) {
        id -> Text,
        login -> Text,
        login_key -> Text,
        display_name -> Text,
        password_hash -> Text,
        role -> Text,
        network -> Nullable<Text>,
        farm -> Nullable<Text>,
        made_at -> Timestamp,
    }
}

diesel::table! {
    sign_in_families (id) {
        id -> Text,
        person -> Text,
        newest -> BigInt,
        rotated_at -> Timestamp,
        expires_at -> Timestamp,
        ended_at -> Nullable<Timestamp>,
        ended_why -> Nullable<Text>,
        acts_for -> Nullable<Text>,
    }
}

diesel::table! {
    web_sessions (token_hash) {
        token_hash -> Text,
        person -> Text,
        csrf_hash -> Text,
        made_at -> Timestamp,
        expires_at -> Timestamp,
        acts_for -> Nullable<Text>,
    }
}

diesel::table! {
    invitations (id) {
        id -> Text,
        network -> Text,
        invited_by -> Text,
        for_whom -> Text,
        code_hash -> Text,
        made_at -> Timestamp,
        expires_at -> Timestamp,
        used_at -> Nullable<Timestamp>,
        used_by -> Nullable<Text>,
        withdrawn_at -> Nullable<Timestamp>,
    }
}

diesel::table! {
    devices (id) {
        id -> Text,
        farm -> Text,
        kind -> Text,
        name -> Text,
        token_hash -> Nullable<Text>,
        registered_at -> Timestamp,
        shut_out_at -> Nullable<Timestamp>,
    }
}

diesel::table! {
    entries (farm, position) {
        farm -> Text,
        position -> BigInt,
        id -> Text,
        device -> Text,
        seq -> BigInt,
        at_millis -> BigInt,
        at_counter -> BigInt,
        on_day -> Text,
        kind -> Text,
        body -> Text,
        prev -> Text,
        hash -> Text,
        stored_at -> Timestamp,
    }
}

diesel::table! {
    offers (id) {
        id -> Text,
        network -> Text,
        farm -> Text,
        lot -> Text,
        variety -> Text,
        variety_key -> Text,
        identity -> Text,
        unit -> Text,
        count -> BigInt,
        held -> BigInt,
        passed -> BigInt,
        smallest_parcel -> BigInt,
        conditions -> Text,
        state -> Text,
        made_at -> Timestamp,
        version -> BigInt,
        open_to -> Text,
    }
}

diesel::table! {
    wants (id) {
        id -> Text,
        network -> Text,
        farm -> Text,
        variety -> Text,
        variety_key -> Text,
        instead -> Text,
        unit -> Text,
        count -> BigInt,
        received -> BigInt,
        needed_by -> Nullable<Text>,
        conditions -> Text,
        state -> Text,
        made_at -> Timestamp,
        required -> Text,
        within_km -> Nullable<BigInt>,
    }
}

diesel::table! {
    holds (id) {
        id -> Text,
        network -> Text,
        offer -> Text,
        want -> Nullable<Text>,
        giver -> Text,
        taker -> Text,
        count -> BigInt,
        purpose -> Text,
        unit_value_tenths -> BigInt,
        asked_at -> Timestamp,
        lapses_at -> Timestamp,
        cut_from -> Nullable<Text>,
        note -> Text,
    }
}

diesel::table! {
    hold_steps (hold, number) {
        hold -> Text,
        number -> BigInt,
        state -> Text,
        at -> Timestamp,
        by_farm -> Nullable<Text>,
        why -> Text,
    }
}

diesel::table! {
    hand_overs (id) {
        id -> Text,
        network -> Text,
        hold -> Text,
        giver -> Text,
        taker -> Text,
        given -> BigInt,
        given_on -> Text,
        condition -> Text,
        entry -> Text,
        given_at -> Timestamp,
    }
}

diesel::table! {
    receipts (hand_over) {
        hand_over -> Text,
        taker -> Text,
        received -> BigInt,
        received_on -> Text,
        condition -> Text,
        lot -> Nullable<Text>,
        entry -> Nullable<Text>,
        received_at -> Timestamp,
    }
}

diesel::table! {
    owed_postings (hand_over) {
        hand_over -> Text,
        network -> Text,
        from_farm -> Text,
        to_farm -> Text,
        tenths -> BigInt,
        at -> Timestamp,
    }
}

diesel::table! {
    messages (id) {
        id -> Text,
        farm -> Text,
        at -> Timestamp,
        body -> Text,
        hold -> Nullable<Text>,
    }
}

diesel::table! {
    hold_now (id) {
        id -> Text,
        network -> Text,
        offer -> Text,
        want -> Nullable<Text>,
        giver -> Text,
        taker -> Text,
        count -> BigInt,
        purpose -> Text,
        unit_value_tenths -> BigInt,
        asked_at -> Timestamp,
        lapses_at -> Timestamp,
        cut_from -> Nullable<Text>,
        note -> Text,
        step -> BigInt,
        state -> Text,
        since -> Timestamp,
    }
}

diesel::table! {
    nightly_copies (day) {
        day -> Text,
        state -> Text,
        since -> Timestamp,
        said -> Text,
    }
}

diesel::table! {
    network_summaries (farm) {
        farm -> Text,
        network -> Text,
        made_at -> Timestamp,
        entries -> BigInt,
        summary -> Nullable<Text>,
        mark -> Nullable<Text>,
    }
}

diesel::table! {
    channels (id) {
        id -> Text,
        farm -> Text,
        kind -> Text,
        target -> Nullable<Text>,
        takes -> Nullable<Text>,
        token_hash -> Nullable<Text>,
        secret_number -> Nullable<Text>,
        state -> Text,
        made_at -> Timestamp,
        confirmed_at -> Nullable<Timestamp>,
        ended_at -> Nullable<Timestamp>,
        ended_why -> Nullable<Text>,
        next_digest_at -> Nullable<Timestamp>,
    }
}

diesel::table! {
    deliveries (id) {
        id -> Text,
        channel -> Text,
        what -> Text,
        message -> Nullable<Text>,
        state -> Text,
        made_at -> Timestamp,
        due_at -> Timestamp,
        tries -> BigInt,
        lease_ends_at -> Nullable<Timestamp>,
        ended_at -> Nullable<Timestamp>,
        said -> Text,
    }
}

diesel::joinable!(deliveries -> channels (channel));
diesel::joinable!(channels -> farms (farm));

diesel::table! {
    rounds (id) {
        id -> Text,
        network -> Text,
        by_person -> Nullable<Text>,
        state -> Text,
        asked_at -> Timestamp,
        rules -> Text,
        frozen -> Text,
        answer -> Nullable<Text>,
        said -> Text,
        leased_until_at -> Nullable<Timestamp>,
        takes -> BigInt,
        ended_at -> Nullable<Timestamp>,
    }
}

diesel::table! {
    round_timetables (network) {
        network -> Text,
        every_days -> BigInt,
        rules -> Text,
        next_at -> Timestamp,
    }
}

diesel::table! {
    proposals (id) {
        id -> Text,
        network -> Text,
        round -> Text,
        number -> BigInt,
        kind -> Text,
        state -> Text,
        made_at -> Timestamp,
        answer_by_at -> Timestamp,
        ended_at -> Nullable<Timestamp>,
        why -> Text,
        version -> BigInt,
    }
}

diesel::table! {
    proposal_farms (proposal, farm) {
        proposal -> Text,
        farm -> Text,
        number -> BigInt,
        answer -> Text,
        answered_at -> Nullable<Timestamp>,
    }
}

diesel::table! {
    proposal_lines (proposal, number) {
        proposal -> Text,
        number -> BigInt,
        offer -> Text,
        want -> Text,
        giver -> Text,
        taker -> Text,
        count -> BigInt,
        unit_value_tenths -> BigInt,
        worth -> BigInt,
        hold -> Nullable<Text>,
    }
}

diesel::table! {
    turns (id) {
        id -> Text,
        network -> Text,
        offer -> Text,
        taker -> Text,
        want -> Nullable<Text>,
        count -> BigInt,
        purpose -> Text,
        unit_value_tenths -> BigInt,
        note -> Text,
        asked_at -> Timestamp,
        state -> Text,
        hold -> Nullable<Text>,
    }
}

diesel::table! {
    farm_limits (farm) {
        farm -> Text,
        network -> Text,
        tenths -> BigInt,
        set_at -> Timestamp,
    }
}

diesel::table! {
    farm_whereabouts (farm) {
        farm -> Text,
        network -> Text,
        latitude -> BigInt,
        longitude -> BigInt,
        set_at -> Timestamp,
    }
}

diesel::table! {
    farm_regions (farm) {
        farm -> Text,
        network -> Text,
        region -> Text,
        set_at -> Timestamp,
    }
}

diesel::table! {
    movement_rules (network, from_key, to_key) {
        network -> Text,
        from_key -> Text,
        to_key -> Text,
        from_region -> Text,
        to_region -> Text,
        passage -> Text,
        required -> Text,
        note -> Text,
        by_person -> Text,
        set_at -> Timestamp,
    }
}

diesel::table! {
    claims (id) {
        id -> Text,
        network -> Text,
        hand_over -> Text,
        giver -> Text,
        taker -> Text,
        kind -> Text,
        count -> BigInt,
        words -> Text,
        state -> Text,
        made_at -> Timestamp,
        answer_by_at -> Timestamp,
        answer -> Text,
        settled -> Nullable<BigInt>,
        decision -> Text,
        decided_by -> Nullable<Text>,
        ended_at -> Nullable<Timestamp>,
        version -> BigInt,
    }
}

diesel::table! {
    claim_postings (claim) {
        claim -> Text,
        hand_over -> Text,
        network -> Text,
        from_farm -> Text,
        to_farm -> Text,
        tenths -> BigInt,
        at -> Timestamp,
    }
}

// A view: what hand-overs and claims brought.
diesel::table! {
    owed_book (act) {
        act -> Text,
        hand_over -> Text,
        network -> Text,
        from_farm -> Text,
        to_farm -> Text,
        tenths -> BigInt,
        at -> Timestamp,
    }
}

diesel::table! {
    parcels (hold) {
        hold -> Text,
        state -> Text,
        post -> Text,
        frost -> Text,
        not_before -> Nullable<Text>,
        terms_by -> Text,
        paused_until -> Nullable<Text>,
        paused_by -> Nullable<Text>,
        pause_why -> Text,
        version -> BigInt,
    }
}

diesel::table! {
    hold_prices (hold) {
        hold -> Text,
        thousandths -> BigInt,
        currency -> Text,
    }
}

diesel::table! {
    payments (id) {
        id -> Text,
        hold -> Text,
        noted_by -> Text,
        thousandths -> BigInt,
        currency -> Text,
        on_day -> Text,
        state -> Text,
        noted_at -> Timestamp,
        ended_at -> Nullable<Timestamp>,
    }
}

diesel::table! {
    farms_on_paper (farm) {
        farm -> Text,
        network -> Text,
        consent_by -> Text,
        consent_how -> Text,
        consent_on -> Text,
        noted_by -> Text,
        noted_at -> Timestamp,
        ended_at -> Nullable<Timestamp>,
        ended_why -> Text,
    }
}

diesel::table! {
    stand_ins (id) {
        id -> Text,
        farm -> Text,
        person -> Text,
        began_at -> Timestamp,
    }
}

diesel::table! {
    walk_ups (offer) {
        offer -> Text,
        proposal -> Text,
    }
}

diesel::table! {
    questions (id) {
        id -> Text,
        network -> Text,
        farm -> Text,
        lot -> Text,
        variety -> Text,
        unit -> Text,
        asked_about -> BigInt,
        planned -> BigInt,
        in_store -> BigInt,
        held -> BigInt,
        state -> Text,
        asked_at -> Timestamp,
        answer_by_at -> Timestamp,
        answered_at -> Nullable<Timestamp>,
    }
}

diesel::table! {
    cut_rules (network) {
        network -> Text,
        rule -> Text,
        set_by -> Text,
        set_at -> Timestamp,
    }
}

diesel::table! {
    photos (id) {
        id -> Text,
        farm -> Text,
        offer -> Nullable<Text>,
        hold -> Nullable<Text>,
        claim -> Nullable<Text>,
        width -> BigInt,
        height -> BigInt,
        picture -> Binary,
        made_at -> Timestamp,
    }
}

diesel::joinable!(photos -> farms (farm));
diesel::joinable!(devices -> farms (farm));

diesel::allow_tables_to_appear_in_same_query!(
    server_state,
    house_seal,
    idempotency,
    set_up_tokens,
    networks,
    farms,
    people,
    sign_in_families,
    web_sessions,
    invitations,
    devices,
    entries,
    offers,
    wants,
    holds,
    hold_steps,
    hand_overs,
    receipts,
    owed_postings,
    messages,
    hold_now,
    nightly_copies,
    network_summaries,
    signing_keys,
    statements,
    channels,
    deliveries,
    rounds,
    round_timetables,
    proposals,
    proposal_farms,
    proposal_lines,
    farm_limits,
    turns,
    farm_whereabouts,
    farm_regions,
    movement_rules,
    claims,
    claim_postings,
    owed_book,
    parcels,
    hold_prices,
    payments,
    photos,
    farms_on_paper,
    stand_ins,
    walk_ups,
    questions,
    cut_rules,
);
