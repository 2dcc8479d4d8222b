"""French of what people owe and hold, of machine, power and sensors, of what is read by eye, and of the daemon's facts."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

PEOPLE: Final[Mapping[str, str]] = {
    # the daily test
    "daily_test.ask": "Faire le test quotidien et l'enregistrer",
    "daily_test.none": "aucun test quotidien enregistré",
    "daily_test.last_failed": "le dernier test quotidien n'a pas réussi : {why}",
    "daily_test.last_failed.ask": "Remédier à ce qui n'a pas réussi et refaire le test quotidien",
    "daily_test.port_failed.ask": (
        "Remettre en place le connecteur au raccord {ports:and}, chercher un tube plié et un canal bouché, vérifier pression et débit de "
        "l'arrivée d'eau; puis refaire le test quotidien"
    ),
    "daily_test.ports_failed.ask": (
        "Vérifier pression et débit de l'arrivée d'eau, remettre en place les connecteurs aux raccords {ports:and}, chercher des tubes "
        "pliés et des canaux bouchés; puis refaire le test quotidien"
    ),
    "daily_test.items_failed.ask": "Remettre en ordre ce qui n'a pas réussi ({items}) et refaire le test quotidien",
    "daily_test.last_tells_nothing": "le dernier test quotidien ne dit rien : {why}",
    "daily_test.due_after_power_up": "à faire : l'appareil a été mis sous tension depuis le dernier",
    "daily_test.due_after_change": "à faire : l'appareil a été changé depuis le dernier",
    "daily_test.due_after_seen_off": "à faire : {by} a vu l'appareil sans courant depuis le dernier",
    "daily_test.due_today": "à faire : aucun n'a réussi aujourd'hui",
    "daily_test.power_unsure": (
        "on ne sait pas si l'appareil a été mis sous tension depuis le dernier : rien n'a été reçu de son alimentation pendant un temps"
    ),
    "daily_test.power_unsure.ask": (
        "Faire le test quotidien et l'enregistrer; si l'appareil est certainement resté sous tension, enregistrer plutôt une levée qui ne "
        "nomme aucun blocage"
    ),
    "daily_test.clock_untrusted": "l'horloge n'est pas fiable : impossible de dire s'il a réussi aujourd'hui",
    "daily_test.passed_ago": "réussi il y a {since}",
    "daily_test.passed_measured_ago": "réussi il y a {since}; le plus lent : {gave}",
    # what a daily test came to
    "daily_test.passed": "réussi",
    "daily_test.failed": "non réussi",
    "daily_test.recorded_as_failed": "enregistré comme non réussi",
    "daily_test.no_result": (
        "pas de résultat : {typed:ni passed ni channel_ports}{forms:ni s'il est réussi, ni ce que les raccords ont donné}"
    ),
    "daily_test.no_port_measured": "aucun raccord de canal mesuré : il faut ce que donne chaque raccord",
    "daily_test.too_few_ports": "raccords de canal mesurés : {measured} sur {fitted}",
    "daily_test.no_list": "{typed:channel_ports}{forms:ce qui est dit} n'est pas une liste de ce que les raccords ont donné",
    "daily_test.no_port": "{given} n'est pas un raccord de canal",
    "daily_test.port_without_number": "un raccord de canal sans son numéro : {given}",
    "daily_test.port_without_seconds": "un raccord de canal sans secondes : {given}",
    "daily_test.port_without_volume": "un raccord de canal sans volume : {given}",
    "daily_test.no_such_port": "il n'y a pas de raccord de canal {port:d} : ils vont de 1 à {fitted}",
    "daily_test.port_twice": "le raccord {port:d} y est deux fois",
    "daily_test.port_cant_be": "raccord {port:d} : {volume} mL en {time:g s} est impossible",
    "daily_test.port_gave": "le raccord {port:d} a donné {volume} mL en {time:g s}",
    "daily_test.port_gave_about": "le raccord {port:d} a donné {volume} ± {uncertainty} mL en {time:g s}",
    "daily_test.items_failed": "pas en ordre : {items}",
    "daily_test.items_missing": "absent de ce qui a été contrôlé : {items}",
    "daily_test.ports_failed": "{ports}; il faut au moins {volume} mL en moins de {time:g s}",
    # the water-path treatment
    "treatment.ask": (
        "Réussir le test quotidien, puis traiter le circuit d'eau selon l'étiquette, vidanger et rincer, et l'enregistrer"
    ),
    "treatment.none": "ni traitement ni ouverture du côté propre enregistrés",
    "treatment.owed": "dû depuis l'ouverture du côté propre ({record:record})",
    "treatment.then.drained": "vidangé",
    "treatment.then.rinsed": "rincé",
    "treatment.then.residue_free": "contrôlé et exempt de résidus",
    "treatment.under_way": "le contact est en cours : {left:until}",
    "treatment.tested.ask": "Traiter le circuit d'eau selon l'étiquette, vidanger et rincer, et l'enregistrer",
    "treatment.untested.ask": "Réussir le test quotidien, puis enregistrer la fin du contact{typed: (water_path_treatment step=ends)}",
    "treatment.quiet": "{text}; cette alarme se tait jusqu'au {until:date} {until}",
    "treatment.under_way.ask": (
        "Laisser agir le contact dans le circuit d'eau, puis enregistrer sa fin{typed: (water_path_treatment step=ends)}"
    ),
    "treatment.contact_done": "le contact a duré autant que l'étiquette le demande; sa fin n'est pas enregistrée",
    "treatment.contact_done.ask": "Enregistrer la fin du contact{typed: (water_path_treatment step=ends)}, puis vidanger et rincer",
    "treatment.waits": "le contact est terminé; pas encore enregistré : {what:and}",
    "treatment.waits.ask": (
        "Continuer selon l'étiquette, puis enregistrer ce qui a été fait : {what:and}{typed: (water_path_treatment step=finished)}"
    ),
    "treatment.unfinished": "le contact est terminé; l'achèvement n'est pas enregistré",
    "treatment.unfinished.ask": "Vidanger et rincer, puis l'enregistrer{typed: (water_path_treatment step=finished)}",
    "treatment.cant_be_timed": "le contact a commencé avant un redémarrage; impossible de dire combien de temps il a duré",
    "treatment.done_ago": "fait il y a {since}",
    # the disinfectant
    "disinfectant.ask": "Changer le désinfectant selon son étiquette",
    "disinfectant.no_fill": "aucun remplissage enregistré",
    "disinfectant.no_fill.ask": "Enregistrer quand le désinfectant a été versé",
    "disinfectant.check_failed": "le dernier contrôle de sa concentration n'a pas réussi",
    "disinfectant.check_failed.ask": "Changer le désinfectant selon son étiquette, ou le contrôler à nouveau et l'enregistrer",
    "disinfectant.equipment_changed": "l'appareil a été changé : on ne sait pas quel liquide il contient",
    "disinfectant.equipment_changed.ask": (
        "Enregistrer le remplissage du réservoir, ou contrôler la concentration et l'enregistrer"
    ),
    "disinfectant.clock_untrusted": "l'horloge n'est pas fiable : son âge ne peut pas être établi",
    "disinfectant.reuse_ended": "sa durée de réutilisation a pris fin {since:when}",
    "disinfectant.expired": "périmé : selon l'étiquette il était bon jusqu'au {last}",
    "disinfectant.opened_too_long": "il ne se conserve plus : son récipient a été ouvert le {opened}",
    "disinfectant.opening_not_known": (
        "la date d'ouverture de son récipient n'est pas enregistrée : impossible de dire combien de temps il se conserve"
    ),
    "disinfectant.opening_not_known.ask": (
        "Enregistrer à nouveau le remplissage avec {typed:`opened`}{forms:la date d'ouverture de son récipient}, et avec sa "
        "propre heure"
    ),
    "disinfectant.left_by_opening": "encore {left} : son récipient a été ouvert le {opened}",
    "disinfectant.check_owed": "sa concentration doit être contrôlée avant la prochaine utilisation",
    "disinfectant.check_owed.ask": (
        "Contrôler la concentration du désinfectant selon la notice des bandelettes et l'enregistrer{typed: (concentration_check)}"
    ),
    "disinfectant.left_by_label": "encore {left} : bon jusqu'au {last} selon l'étiquette",
    "disinfectant.left": "encore {left} de sa durée de réutilisation",
    # when something is due again
    "due.none": "rien d'enregistré",
    "due.failed": "dernière fois le {done:date} par {by} : non réussi",
    "due.now": "fait pour la dernière fois le {done:date} par {by}; à refaire maintenant",
    "due.done": "fait le {done:date} par {by}",
    "due.again": "fait le {done:date} par {by}; à refaire à partir du {due:date}",
    # duties of the site's own list
    "duty.of": "{title} : {what}",
    "duty.ask": "{title} : faire et enregistrer{typed: (service, duty={duty})}",
    "duty.none": "rien d'enregistré",
    "duty.done": "fait il y a {since} par {by}; à refaire à partir du {due:date}",
    "duty.due": "à faire depuis le {due:date}; dernière fois {since:when} par {by}",
    "duty.failed": "la dernière fois, non réussi ({by}, {since:when})",
    "duty.failed.ask": "{title} : remédier à ce qui n'a pas réussi, refaire et enregistrer{typed: (service, duty={duty})}",
    "duty.above_action": "{result}, au-dessus du niveau d'action de {level} ({by}, {since:when})",
    "duty.above_action.ask": (
        "{title} : agir comme le site l'a prévu, faire prélever à nouveau et enregistrer le résultat{typed: (service, duty={duty})}"
    ),
    "duty.above_alert": (
        "{result}, au-dessus du niveau d'alerte de {level} ({by}, {since:when}) : rechercher la cause, et prélever à nouveau"
    ),
    "duty.no_result_yet": "aucun résultat enregistré, ce qui n'empêche aucun poste de démarrer",
    "duty.not_above_action": "aucun résultat au-dessus du niveau d'action",
    "duty.clock_untrusted": "l'horloge n'est pas fiable : impossible de dire si c'est à faire",
    # a duty whose date can't be told
    "undated.never_set": "dernier enregistrement fait avant le réglage de l'horloge : {record:record}",
    "undated.wrong_date": "dernier enregistrement fait avec une date fausse : {record:record}",
    "undated.ask": "Refaire, ou enregistrer à nouveau avec l'heure exacte : {record:record}",
    # calibrations that are due
    "calibration.drifted": "{point} a dérivé de {by}, {allowed} permis",
    "calibration.past_due": "l'étalonnage de {point} est en retard",
    # holds, and what only a person can answer for
    "hold.none": "pas de blocage",
    "hold.held": "bloqué par {by} : {why}",
    "hold.held.ask": "Faire lever le blocage",
    "hold.no_reason": "aucune raison donnée",
    "hold.overlooked": (
        "{by} a enregistré un échec ({record:record}{about}), et rien dans le fichier du poste ne le surveille"
    ),
    "hold.overlooked_about": " {about:and}",
    "hold.overlooked_sight": (
        "{by} a constaté : {value:contact} ({where:role}), et rien dans le fichier du poste ne le surveille"
    ),
    "hold.overlooked.ask": (
        "S'assurer que ce qui n'a pas réussi a été remis en ordre, et que le fichier du poste nomme tout ce qui est là; qui l'a enregistré "
        "par erreur le corrige; sinon enregistrer une levée qui ne nomme aucun blocage"
    ),
    "loss.entries": "les écritures {first:d} à {last:d} du journal ont été perdues",
    "loss.unproved": (
        "impossible de dire si des écritures ont été perdues, car les notes sur la fin du journal ont disparu"
    ),
    "loss.restored": (
        "ce journal a été restauré d'une sauvegarde qui finit à l'écriture {last:d}, et les écritures suivantes manquent"
    ),
    "loss.exchanged": "un autre journal a été mis ici",
    "loss.may_be_among_them": (
        "{what} : un blocage, un test non réussi ou un remplacement de filtre peut se trouver parmi elles"
    ),
    "loss.ask": (
        "Demander qui a travaillé ici, consulter l'archive ou le registre papier, enregistrer à nouveau ce qui manque (blocages, tests, "
        "remplacements de filtres); puis enregistrer une levée qui ne nomme aucun blocage"
    ),
    "dropped.owed": "{condition:condition} ({why})",
    "dropped.since_changed": (
        "le fichier du poste a été modifié alors que ceci n'était pas rempli, et ne l'a ensuite plus demandé : {owed}"
    ),
    "dropped.ask": (
        "S'assurer que ce qui était dû est fait ou n'est pas nécessaire, et que le fichier du poste est juste; puis enregistrer une levée "
        "qui ne nomme aucun blocage"
    ),
    # the machine
    "machine.not_in_use": "non utilisé",
    "machine.no_power": "l'appareil n'a pas de courant",
    "machine.no_power.ask": "Allumer l'appareil",
    "machine.power_not_known": "on ne sait pas si l'appareil a du courant",
    "machine.power_by_eye": "alimentation : {told}",
    "machine.seen_off.ask": "Allumer l'appareil, et le relire",
    "machine.work_declared": "travaux déclarés par {by}",
    "machine.work_declared.ask": "Mettre fin aux travaux déclarés",
    "machine.cycle_running": "un cycle est en cours : le liquide chauffé est absent",
    "machine.drawing": "de l'eau est puisée",
    # outlets
    "outlet.live": "sous tension{polled}",
    "outlet.tripped": "déclenchée",
    "outlet.tripped.ask": "Faire examiner le déclenchement de la prise {outlet}; la réarmer une fois, mains sèches",
    "outlet.has_tripped": "la prise {outlet} s'est déclenchée",
    "outlet.seen_tripped": "{by} a vu la prise {outlet} déclenchée",
    "outlet.seen.ask": (
        "une fois que c'est passé, la tester et l'enregistrer{typed: (outlet_test outlet={outlet})}, ou saisir qu'elle est en ordre"
        "{typed: (entered_reading role=outlet_protection value=ok)}"
    ),
    "outlet.seen_tripped.ask": (
        "Faire examiner le déclenchement de la prise; la réarmer une fois, mains sèches; puis la relire"
    ),
    "outlet.comes_and_goes": "sous tension en ce moment, mais son déclenchement va et vient",
    "outlet.comes_and_goes.ask": "Faire examiner la prise {outlet}",
    "outlet.not_steady_yet": "de nouveau sous tension, mais depuis trop peu de temps pour être tenue pour stable",
    "outlet.tripped_late": "déclenchement à {trip} mA; {most} mA au plus protègent les personnes",
    "outlet.test_none": (
        "{outlet} : aucun test enregistré : appuyer sur le bouton de test, voir qu'elle se déclenche, la réarmer et l'enregistrer"
        "{typed: (outlet_test outlet={outlet})}"
    ),
    "outlet.test_due": (
        "{outlet} : test à faire depuis le {due:date} (dernier {since:when} par {by}) : appuyer sur le bouton de test, voir qu'elle se "
        "déclenche, la réarmer et l'enregistrer"
    ),
    "outlet.test_failed": "son dernier test n'a pas réussi",
    "outlet.test_not_passed": "son dernier test n'a pas réussi : {why}",
    "outlet.test_failed_ago": "{failure} ({by}, {since:when})",
    "outlet.test_failed_as_recorded": "{outlet} : {failure}, enregistré par {by}",
    "outlet.test_failed.ask": (
        "Faire réparer la prise {outlet} par du personnel habilité, la tester à nouveau et l'enregistrer"
    ),
    # sensors
    "sensors.heard": "tous répondent",
    "sensors.deciding_heard": "tous ceux qui décident répondent; ne répondent pas : {silent}",
    "sensors.deciding_heard_or_read": "tous ceux qui décident répondent, ou sont lus à l'œil; ne répondent pas : {silent}",
    "sensors.not_heard": "ne répondent pas : {points}",
    "sensors.because": "{point} ({why})",
    "sensors.no_reading_yet": "pas encore de lecture : {points}",
    "sensors.unjudged": "{point} : {why}",
    "sensors.unjudged.ask": "Retirer {point} du fichier du poste, ou le compléter",
    "silent.point": "{point} : {why}{detail}",
    "silent.detail": " ({detail})",
    "silent.slow": "une lecture vient toutes les {every:g s}, au-delà des {limit:g s} pendant lesquelles une lecture vaut",
    "silent.slow.advice": (
        "Lire plus souvent, ou donner aux points `every` et `stale_after` dans le fichier du poste selon la fréquence de lecture"
    ),
    "silent.slow_points": "{points} : {what}; {advice:lower}",
    "bus.lost": "le bus {bus} est perdu",
    "bus.not_heard": "aucun point du bus {bus} ne répond plus : {points}",
    "bus.none_heard": "aucun point du poste ne répond plus : {points}",
    # what is read by eye
    "by_eye.read_by": "{value:contact}, lu par {by}",
    "by_eye.seen": "{value:contact}, vu par {by} {since:when}",
    "by_eye.seen.ask": "une fois que c'est passé, saisir une lecture qui le dit : {role:role}",
    "by_eye.no_reading_of_point": "aucune lecture à l'œil de {point} qui vaille encore",
    "by_eye.read_point": "Lire {point} et le saisir",
    "by_eye.no_reading_of_role": "aucune lecture à l'œil qui vaille encore : {role:role}{since}",
    "by_eye.read_role": "Lire à l'œil et saisir : {role:role}",
    "by_eye.no_point": "aucun point n'a le rôle {role:role}",
    "by_eye.no_point.ask": "Installer un point du rôle {role}, ou le nommer sous [not_fitted]",
    "by_eye.overtaken": "; depuis que quelqu'un l'a lu : {what}",
    "since.filled_anew": "le réservoir a été rempli à nouveau",
    "since.liquid_added": "du liquide a été ajouté",
    "since.equipment_changed": "l'appareil a été changé",
    "since.without_power": "le chauffage, ou l'appareil, était sans courant",
    # the daemon's facts
    "clock.trusted": "fiable",
    "clock.untrusted": "l'horloge n'est pas encore fiable : les échéances ne peuvent pas être établies",
    "clock.untrusted.ask": (
        "S'assurer que la carte atteint son serveur de temps; si sa date est à des mois de la dernière et juste, enregistrer "
        "{typed:clock_confirmed}{forms:que l'horloge est juste}"
    ),
    "alarm.disk_low.nearly_full": "le disque est presque plein : {disk}",
    "alarm.store.refuses": "le journal ne peut pas être écrit : {why}",
    "alarm.store.hangs": "une écriture est en cours depuis {since:.0f s} : le disque est lent ou bloqué",
    "alarm.store.not_kept": "les lectures ne sont pas conservées : {why}",
    "alarm.store.read_only": "le disque est monté en lecture seule : rien ne peut être conservé",
    "alarm.store.lost": "des lectures sont perdues : {readings:d} depuis le démarrage",
    "alarm.store.slow": "le disque est lent : une écriture sur vingt prend {took:.1f s} ou plus",
    "alarm.store.end_not_noted": "la fin du journal ne peut pas être notée, une perte pourrait passer inaperçue : {why}",
    "alarm.untold.not_reached": "le broker n'a pas encore été atteint",
    "alarm.untold.nobody": "personne n'a pu être prévenu{since} ({ways})",
    "alarm.untold.some": "n'ont pas pu être prévenus{since} : {who:and} ({ways})",
    "alarm.untold.since": " depuis le {since:date} {since}",
    "alarm.untold.way": "{who} : {why}",
    # basins, the page's certificate, whose a hold is
    "daily_test.in_basin": "Bac {basin} : {ask:lower}",
    "daily_test.not_told_of_basin": "aucun de ses raccords n'a été mesuré : rien n'est dit du bac {basin}",
    "hold.basins_held": "Bloqué, ne doit pas démarrer : bac {basins:and}",
    "hold.held_in": "bac {basin} bloqué par {by} : {why}",
    "hold.held_in.ask": "Faire lever le blocage du bac {basin}",
    "machine.no_work": "aucun travail déclaré",
    "machine.work_declared_in": "travaux sur le bac {basin} déclarés par {by}",
    "machine.work_declared_in.ask": "Mettre fin aux travaux déclarés sur le bac {basin}",
    "alarm.certificate_ends.soon": "le certificat de la page prend fin le {until:date}",
    "alarm.certificate_ends.over": "le certificat de la page a pris fin le {until:date}",
    "alarm.backup_overdue.never": "aucune sauvegarde n'a encore été faite",
    "alarm.backup_overdue.last": "la dernière bonne sauvegarde est du {at:date}",
    "alarm.backup_overdue.why": "{what} ; le dernier essai a échoué : {why}",
    "alarm.archive_silent.which": "aucune nouvelle de ce que possède {which}",
    "alarm.archive_silent.last": "{archive} (la dernière du {at:date} {at})",
    "alarm.archive_silent.never": "{archive} (aucune encore)",
    "record.no_such_basin": "aucun bac de ce nom à ce poste : {named}{there}",
    "record.has_no_basin": " ; il n'en a pas",
    "record.biomeds_to_release": "le blocage par {by} est celui d'un biomédical : seul un biomédical connecté le lève",
    "record.nothing_held_in": "rien n'est bloqué sur le bac {basin} seul",
    "record.no_work_in": "aucun travail n'était déclaré sur le bac {basin}",
    # treatments that are not done, results and shelves that can't be reckoned with
    "treatment.not.drained": "non vidangé, comme {by} l'a enregistré",
    "treatment.not.rinsed": "non rincé, comme {by} l'a enregistré",
    "treatment.not.residue_free": "pas exempt de résidus, comme {by} l'a enregistré",
    "treatment.begun": "du désinfectant peut être dans le circuit d'eau : {by} a enregistré un traitement qui n'est pas terminé",
    "duty.cant_be_compared": "{result} ne se compare pas au niveau d'action de {level} ({by}, {since:when})",
    "duty.cant_be_compared.ask": (
        "{title} : enregistrer le résultat chiffré avec son unité, ou prélever à nouveau{typed: (service, duty={duty})}"
    ),
    "record.taken_back_already": "{typed:`of` : }cet enregistrement ({record:record}) a déjà été repris",
    "record.never_counted": "{typed:`of` : }cet enregistrement ({record:record}) n'a jamais compté, il n'y a rien à reprendre",
    "record.shelf_over": (
        "la mise de côté aurait pris fin à {ended:utc} : {typed:omettre `at`}{forms:choisir maintenant}, ou indiquer plus de "
        "minutes"
    ),
}
